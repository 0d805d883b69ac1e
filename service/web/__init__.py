"""Pages, forms, JSON and downloads. Only this package speaks Flask."""
