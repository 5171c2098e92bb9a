"""The API from outside: status, shape, roles, and how many queries."""
