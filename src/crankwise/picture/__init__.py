"""Pictures of a measurement as SVG, drawn by the package itself, and as PNG."""
