"""Takes with exact truth: invented licks, played by sampled or recorded guitars."""
