"""Called-out or typed words to measured quantities with their uncertainty, and back to speech."""

from assistant.quantity import QUANTITIES, Quantity, quantity_named
from assistant.readings.read import read
from assistant.readings.reading import Reading

__all__ = ["QUANTITIES", "Quantity", "Reading", "quantity_named", "read"]
