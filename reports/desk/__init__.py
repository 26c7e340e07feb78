"""The page of a scenario served on this machine, which plans again when the scenario changes."""
