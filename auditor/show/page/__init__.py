"""The page: an audit as a view of plain values, the view as SVG, and both laid out by the templates."""
