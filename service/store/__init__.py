"""The store: engine, schema, migrations, rows and frames. Only this package speaks SQL."""
