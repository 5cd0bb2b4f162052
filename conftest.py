"""What pytest leaves alone: migrations run only inside a ledger that is being brought up to date."""

collect_ignore_glob = ["lotqa/ledger/migrations/*"]
