"""The plan as people write it, the plan as sitekit holds it, and what happened.

- settings_layers: the tables of plan.toml that name a team's files
- settings_method: the tables of plan.toml that say how places are judged and colonies laid out
- settings_sea: the tables of plan.toml about waves, tide, light and heat
- settings_weights: the tables of plan.toml that say how weights came about and what is varied
- settings_permit: the permits of plan.toml and the facts that only the team can state
- settings_fieldwork: the tables of plan.toml for the dive leader and the boat
- settings_survey: the table of plan.toml for what was planted and is looked at again
- settings_decide: the tables of plan.toml that decide where to work: answers, budget, choice, controls, scouting
- toml_words: values that a plan.toml cannot hold as they are written, and how they are to be
- settings: the whole of plan.toml, read with every fault at once
- plan_tables: season.gpkg, the single truth of a plan
- held: its tables in memory between the stages of a run
- records: records.gpkg, what happened
"""
