"""Kitchens that can go wrong."""
