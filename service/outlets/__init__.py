"""Taking out: layers, snapshots, maps and printed sheets."""
