"""Parts of the page *Studio*."""
