"""Called-out or typed words to measured quantities with their uncertainty, and back to speech."""

from .quantity import QUANTITIES, Quantity, quantity_named
from .read import read
from .reading import Reading

__all__ = ["QUANTITIES", "Quantity", "Reading", "quantity_named", "read"]
