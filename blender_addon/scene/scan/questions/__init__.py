"""The choices of the scan steps as decisions, with pictures and the settings of each alternative."""
