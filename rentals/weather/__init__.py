"""Wind and weather: forecasts as they came in, what the beach measured, and where both are fetched from."""
