"""What analysis found, as HTML, as terminal pictures and as JSON."""
