"""The job of a deck engineer, from deck file to report, built on the mechanics of `plate`."""
