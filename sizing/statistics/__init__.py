"""What compared readings say of people, tapes and days: pooled, tested, and never a rank."""
