"""What the microphone tells: samples -> spectra -> spindle track -> passes."""
