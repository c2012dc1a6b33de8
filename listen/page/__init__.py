"""The page: for the computer at localhost, and for phones in the same room over TLS."""
