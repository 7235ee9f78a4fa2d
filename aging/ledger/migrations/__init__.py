"""Steps from one shape of the store to the next; `aging.ledger.migrate` runs them."""
