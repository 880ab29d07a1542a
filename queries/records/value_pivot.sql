any_value(/*value*/) filter (/*place*/ = /*code*/) as /*column*/
