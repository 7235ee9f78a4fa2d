"""Raw measurements to the quantities of the trade: spectra, colour, dirt, heat."""
