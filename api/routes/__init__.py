"""The JSON API, one module for each resource."""
