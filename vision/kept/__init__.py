"""How a cache is asked, and keys of one from requests; `vision.kept_photos` and `vision.last_trace` are caches."""
