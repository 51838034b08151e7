"""What each page shows, as frozen dataclasses made from what the store returns."""
