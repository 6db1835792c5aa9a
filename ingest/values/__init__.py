"""Values as people write them: hours, dates, sizes, amounts, times of day."""
