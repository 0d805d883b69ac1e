"""The browser files that the build fetches by lock file."""
