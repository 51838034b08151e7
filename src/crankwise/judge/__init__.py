"""From a comparison to a judgement: policy, verdict, and history over mileage."""
