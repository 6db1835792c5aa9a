"""The record as arrays that the models learn from."""
