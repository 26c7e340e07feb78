"""The page: one self-contained HTML file on which a plan is picked, played and compared."""
