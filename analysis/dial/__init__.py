"""What the dial really does: plateaus -> settings -> curve, and what the motor does under load."""
