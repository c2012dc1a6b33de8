"""The shell: takes come in, coaching goes out. Every effect lives here."""
