"""The JSON document of a check or an estimate, by the contract."""
