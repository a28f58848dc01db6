"""Invented scenarios: the bonded floor, door sill and roof of a mountain cable-car cabin."""
