"""Arranges table, props, debris and light for the shots."""
