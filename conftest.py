"""What pytest leaves alone: migrations, which run only inside a ledger being brought up to date."""

collect_ignore_glob = ["lotqa/ledger/migrations/*"]
