"""Parts of the page *Estimate*."""
