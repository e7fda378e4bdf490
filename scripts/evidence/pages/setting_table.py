def setting_tables(outcomes):
    return f"{len(outcomes)}"
