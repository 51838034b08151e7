def engine_view(engine):
    return "<svg xmlns='http://www.w3.org/2000/svg' width='800' height='100'></svg>"
