"""Every field of a region in one run: a compiled loop, partitions by weather cell, Parquet out."""
