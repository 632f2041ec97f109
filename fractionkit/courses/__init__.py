"""What ties the vessels of one run: order and course of the distillation, pot temperatures, balance of the charge."""
