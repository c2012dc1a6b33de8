"""Bits, routers and materials by name, kept on this machine."""
