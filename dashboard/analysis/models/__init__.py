"""The fitted models: hours, quantities, ratios, rates."""
