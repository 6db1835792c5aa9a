"""Documents that leave the studio: letters, labels, statements, calendars."""
