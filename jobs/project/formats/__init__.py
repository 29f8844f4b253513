"""How numbers and days are written, where that is not as Django has it."""
