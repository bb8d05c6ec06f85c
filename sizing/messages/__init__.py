"""All words for people, by what they are about; nothing else in `sizing` writes a sentence of its own."""
