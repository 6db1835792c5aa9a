"""Tables in other words than ours: read as text, understood as somebody says, brought in by the one check."""
