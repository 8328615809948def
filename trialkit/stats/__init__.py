"""General statistics of a few units: intervals, ratios, life data, mixed models. Knows nothing of plows."""
