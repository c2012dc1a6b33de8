"""From a hearing and a set-up to verdicts, advice and a summary."""
