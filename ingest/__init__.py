"""The only writer: what comes in from files and forms is checked here and stored in one DuckDB file."""
