"""An invented studio's logs: CSV files, the script that wrote them, and the truth they were drawn from."""
