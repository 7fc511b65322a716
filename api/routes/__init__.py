"""HTTP routes, one file per noun, two or three lines a route."""
