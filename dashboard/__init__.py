"""The reader: commands, pages, charts, and the analysis behind them. It writes only through `ingest`."""
