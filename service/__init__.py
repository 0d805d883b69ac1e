"""Everything that touches the world: store, pages, import and export, command line."""
