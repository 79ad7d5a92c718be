"""Daily temperatures: sources, station records, quality, past seasons, the durable store."""
