"""Results as matplotlib figures: drawn here, saved by whoever asked. Nothing else draws."""
