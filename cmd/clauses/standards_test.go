package clauses

// standards is what must be in the table, one by one and counted: 29 CFR 1910.147,
// 1910.333(b)(2), 1910.145(f), 1910.272, the limits of the air, NFPA 70E's eight
// steps, and what else the program prints. Written from the rules' own order by hand,
// not from the table. There is no 1910.147(c)(10): (c) ends at (c)(9) (from memory).
var standards = []struct {
	section string
	rows    int
	prefix  string // of its clauses
	clauses []string
}{
	{"1.1", 6, "1910.147", []string{"(a)(1)(i)", "(a)(1)(ii)(A)-(E)", "(a)(2)(ii)", "(a)(2)(iii)(A)", "(a)(2)(iii)(B)", "(a)(3)"}},
	{"1.2", 10, "1910.147(b) ", []string{"affected employee", "authorized employee", "capable of being locked out", "energized", "energy isolating device",
		"energy source", "lockout", "lockout device", "tagout, tagout device", "normal production, servicing, setting up, hot tap"}},
	{"1.3", 19, "1910.147", []string{"(c)(1)", "(c)(2)(i)", "(c)(2)(ii)", "(c)(2)(iii)", "(c)(3)(i)-(ii)", "(c)(4)(i)", "(c)(4)(ii)(A)-(D)", "(c)(5)(i)",
		"(c)(5)(ii)", "(c)(5)(ii) durable, standardised, substantial", "(c)(5)(iii)", "(c)(6)(i)(A)-(D)", "(c)(6)(ii)",
		"(c)(7)(i)(A)-(C)", "(c)(7)(ii)(A)-(F)", "(c)(7)(iii)(A)-(C)", "(c)(7)(iv)", "(c)(8)", "(c)(9)"}},
	{"1.4", 8, "1910.147(c)(4)(i) condition ", []string{"1", "2", "3", "4", "5", "6", "7", "8"}},
	{"1.5", 10, "1910.147(d)", []string{"(1)", "(2)", "(3)", "(4)(i)", "(4)(ii)", "(4)(iii)", "(4)(iii)(A)-(B)", "(5)(i)", "(5)(ii)", "(6)"}},
	{"1.6", 5, "1910.147(e)", []string{"(1)", "(2)(i)", "(2)(ii)", "(3)", "(3)(i)-(iii)"}},
	{"1.7", 11, "1910.147(f)", []string{"(1)(i)-(v)", "(2)(i)-(ii)", "(3)(i)", "(3)(ii)(A)", "(3)(ii)(B)", "(3)(ii)(C)", "(3)(ii)(D)", "(4)",
		"OSHA letter of 24 October 2000", "OSHA letter of 27 July 2023", "OSHA group lockout page"}},
	{"1.8", 15, "1910.333", []string{"(a)(1)", "(b)(2) note 2", "(b)(2)(i)", "(b)(2)(ii)(A)", "(b)(2)(ii)(B)", "(b)(2)(ii)(C)", "(b)(2)(ii)(D)",
		"(b)(2)(iii)(A)-(B)", "(b)(2)(iii)(C)-(D)", "(b)(2)(iii)(E)", "(b)(2)(iv)(A)", "(b)(2)(iv)(B)", "(b)(2)(v)(A)-(B)", "(b)(2)(v)(C)", "(b)(2)(v)(D)"}},
	{"1.9", 7, "1910.145(f)", []string{"(3)", "(4)(i)", "(4)(ii)", "(4)(iii)-(v)", "(4)(vi)", "(5)-(7)", "(8)"}},
	{"2", 37, "1910.272", []string{"(a)-(b)", "(c)", "(d)", "(e)(1)", "(e)(2)-(3)", "(f)", "(g)", "(g)(1)(i)", "(g)(1)(ii)", "(g)(1)(iii)", "(g)(1)(iii) respirators",
		"(g)(1)(iv)", "(g)(2)", "(g)(2) alternative", "OSHA letter of 29 September 2008", "(g)(3)", "(g)(4)", "(g)(5)", "(g)(6)", "(h)", "(i)", "(j)", "(j)(3)", "(k)", "(l)",
		"(m)(1)-(3)", "(m)(4)", "(n)", "(o)", "(p)", "(q)(1)", "(q)(2)", "(q)(3)-(4)", "(q)(5)", "(q)(6)-(8)",
		"OSHA memorandum of 3 May 2013", "OSHA memorandum of 3 May 2013, its ten conditions"}},
	{"2.1", 10, "", []string{"1910.146(b) oxygen", "1910.146(b) flammable gas", "1910.146(b) combustible dust", "1910.1000 Table Z-2 hydrogen sulfide",
		"1910.1000 Table Z-1 carbon monoxide", "1910.1000 Table Z-1 carbon dioxide", "1910.1000 Table Z-1 nitrogen dioxide", "1910.1000 Table Z-1 phosphine", "1910.1000 Table Z-1 grain dust",
		"air at top, middle and bottom"}},
	{"3.1", 12, "NFPA 70E ", []string{"120.5(1)", "120.5(2)", "120.5(3)", "120.5(4)", "120.5(5)", "120.5(6)", "120.5(7)", "120.5(8)", "120.5(7), six readings", "110.2",
		"LBNL table 2.2.13", "120.4"}},
	{"elsewhere", 3, "", []string{"1910.252(a)", "NFPA 51B", "NEC 460.6"}},
}
