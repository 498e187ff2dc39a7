"""Call and response: the gaps between the calls, and what answers in them."""
