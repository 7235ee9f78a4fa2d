"""One file a step, never changed after its release."""
