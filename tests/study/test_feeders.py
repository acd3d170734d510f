"""Which feeder a section is of, stated or not."""

from __future__ import annotations

HEAD = "section_id,parent_id,device,length_km,customers,feeder_id\n"


def test_a_blank_feeder_is_the_parents(study):
    made = study(sections__csv=HEAD + "b,,breaker,1,1,F1\nt,b,fuse,1,1,\nu,t,,1,1,\nr,u,recloser,1,1,F2\nv,r,,1,1,\n")
    assert made.sections["feeder_id"].tolist() == ["F1", "F1", "F1", "F2", "F2"]
    assert [n.partition(":")[2] for n in made.notes if "feeder_id" in n] == [" a feeder begins there."]


def test_a_blank_feeder_of_a_blank_source_is_the_sources_id(study):
    made = study(sections__csv=HEAD + "b,,breaker,1,1,\nt,b,fuse,1,1,\nc,,breaker,1,1,F2\nu,c,,1,1,\n")
    assert made.sections["feeder_id"].tolist() == ["b", "b", "F2", "F2"]
    assert not [n for n in made.notes if "feeder_id" in n]


def test_rows_below_their_children_are_the_same(study):
    made = study(sections__csv=HEAD + "u,t,,1,1,\nt,b,fuse,1,1,\nb,,breaker,1,1,F1\n")
    assert made.sections["feeder_id"].tolist() == ["F1", "F1", "F1"]
