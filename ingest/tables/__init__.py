"""Tables that several writers touch: the history of changes, line numbers, counted hours."""
