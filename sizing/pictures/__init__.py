"""Pictures for people: the photos with what was measured, and with what no copy may show blanked."""
