"""Errors of the API as problem details (RFC 9457), whatever went wrong."""
