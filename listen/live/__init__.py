"""Coaching while the router runs: a microphone in, verdicts out, and every take kept."""
