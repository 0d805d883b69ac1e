"""Cases that more than one language runs: the check of a reading here, and on a phone."""
