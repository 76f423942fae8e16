"""Measures of a temperature record and of salt in meat: numpy only."""
