"""How good past predictions and promises were."""
