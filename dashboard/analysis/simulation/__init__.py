"""Distributions of what is to come, drawn from the fitted models: totals of quotes, completion of works,
schedules.
"""
