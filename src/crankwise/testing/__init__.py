"""What the project is tested with, for the tests of others: simulator and reader contract."""
