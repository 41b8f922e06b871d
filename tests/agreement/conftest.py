from hypothesis import settings

settings.register_profile("agreement", max_examples=20, deadline=None, database=None)
settings.load_profile("agreement")
