"""The truck card: one small TOML file a truck, with the maker's figures."""

from assistant.card.card import Card, default_card
from assistant.card.load import CardError, card_from_text, load_card

__all__ = ["Card", "CardError", "card_from_text", "default_card", "load_card"]
