"""What the bit does in the wood: geometry, bands, materials, forces, limits, the window."""
