"""Pictures of the page: each module draws one family; only `canvas` imports matplotlib."""
