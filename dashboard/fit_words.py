"""Words of a fit that takes long."""

PROGRESS = "Fitting {label}: {done} of {of} campaigns. Other pages work meanwhile."
BEGINS = "Fitting {label}: reading and preparing. Other pages work meanwhile."
CANCEL, AGAIN = "Cancel this fit", "Fit again"
CANCELLED = "The fit of {label} was cancelled. Campaigns that were done are kept."
