from hypothesis import settings

settings.register_profile("conditions", max_examples=20, deadline=None, database=None)
settings.load_profile("conditions")
