"""Calibrating a dial from recordings: takes in, table, JSON, figure and card out."""
