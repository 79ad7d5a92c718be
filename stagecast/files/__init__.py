"""Results as documents and files for other programs."""
