"""What finished and open works come to: overruns, prices, the year, filters."""
