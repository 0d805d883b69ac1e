"""Two invented sites and the generator that made them."""
