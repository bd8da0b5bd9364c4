"""Answers isolation questions with NetworkX alone, for comparison.

Reads {"cases": [...]} from standard input. A case has nodes counted from 0,
sources, parts, and links [from, to, what, one way]: what is 0 for a bare link,
1 for an isolation point, 2 for a control. Writes the version and the answers:

least       fewest points that cut every source off from every part; -1: none do
nearest     the links of the one such set nearest the parts
double      fewest points so that two stand on every path; -1: none do
dominators  the points that cut all parts off alone; null: nothing reaches one
edge_cut    len(minimum_edge_cut) where each link is a point, one source, one part

With {"speed": case, "flow": name} it writes how long minimum_cut alone takes.
"""
import json
import platform
import sys
import time

import networkx as nx


def arcs(case):
    for number, (u, v, what, one_way) in enumerate(case["links"]):
        yield number, u, v, what
        if not one_way:
            yield number, v, u, what


def join(graph, u, v, capacity):
    """Adds an arc; None is a capacity without limit, which NetworkX writes by leaving it out."""
    if graph.has_edge(u, v):
        old = graph[u][v].get("capacity")
        if old is None:
            return
        if capacity is None:
            del graph[u][v]["capacity"]
        else:
            graph[u][v]["capacity"] = old + capacity
    elif capacity is None:
        graph.add_edge(u, v)
    else:
        graph.add_edge(u, v, capacity=capacity)


def single(case):
    graph = nx.DiGraph()
    graph.add_nodes_from(range(case["nodes"]))
    graph.add_nodes_from(["s", "t"])
    for u in case["sources"]:
        join(graph, "s", u, None)
    for v in case["parts"]:
        join(graph, v, "t", None)
    for _, u, v, what in arcs(case):
        join(graph, u, v, 1 if what == 1 else None)
    return graph


def least(case):
    try:
        value, (far, near) = nx.minimum_cut(single(case), "s", "t")
    except nx.NetworkXUnbounded:
        return -1, []
    cut = {number for number, u, v, what in arcs(case) if u in far and v in near}
    return value, sorted(cut)


def double(case):
    """A node is (v, 0) and (v, 1): on the near side when one, or two, points are ahead of it."""
    graph = nx.DiGraph()
    graph.add_nodes_from(["s", "t"])
    for v in range(case["nodes"]):
        join(graph, (v, 0), (v, 1), None)
    for u in case["sources"]:
        join(graph, "s", (u, 0), None)
    for v in case["parts"]:
        join(graph, (v, 1), "t", None)
    for _, u, v, what in arcs(case):
        for layer in (0, 1):
            join(graph, (u, layer), (v, layer), 1 if what == 1 else None)
        join(graph, (u, 0), (v, 1), None)
    try:
        return nx.minimum_cut_value(graph, "s", "t")
    except nx.NetworkXUnbounded:
        return -1


def dominators(case):
    graph = nx.DiGraph()
    graph.add_nodes_from(["s", "t"])
    graph.add_edges_from(("s", u) for u in case["sources"])
    graph.add_edges_from((v, "t") for v in case["parts"])
    points = set()
    for number, u, v, what in arcs(case):
        graph.add_edge(u, ("link", number))
        graph.add_edge(("link", number), v)
        if what == 1:
            points.add(("link", number))
    above = nx.immediate_dominators(graph, "s")
    if "t" not in above:
        return None
    found, at = [], "t"
    while at != "s":
        at = above[at]
        if at in points:
            found.append(at[1])
    return sorted(found)


def edge_cut(case):
    pairs = [tuple(sorted(link[:2])) for link in case["links"]]
    plain = all(what == 1 for _, _, what, _ in case["links"]) and len(set(pairs)) == len(pairs)
    if not plain or len(case["sources"]) != 1 or len(case["parts"]) != 1 or case["sources"] == case["parts"]:
        return None
    graph = nx.DiGraph()
    graph.add_nodes_from(range(case["nodes"]))
    graph.add_edges_from((u, v) for _, u, v, _ in arcs(case))
    return len(nx.minimum_edge_cut(graph, case["sources"][0], case["parts"][0]))


def answer(case):
    value, nearest = least(case)
    return {
        "least": value,
        "nearest": nearest,
        "double": double(case),
        "dominators": dominators(case),
        "edge_cut": edge_cut(case),
    }


def speed(case, flow):
    graph = single(case)
    begin = time.perf_counter()
    value, _ = nx.minimum_cut(graph, "s", "t", flow_func=getattr(nx.algorithms.flow, flow))
    return {"seconds": time.perf_counter() - begin, "value": value}


def main():
    asked = json.load(sys.stdin)
    system = platform.freedesktop_os_release().get("PRETTY_NAME", platform.system())
    out = {"version": "NetworkX %s, Python %s, %s" % (nx.__version__, platform.python_version(), system)}
    if "speed" in asked:
        out["speed"] = speed(asked["speed"], asked["flow"])
    else:
        out["answers"] = [answer(case) for case in asked["cases"]]
    json.dump(out, sys.stdout)


main()
