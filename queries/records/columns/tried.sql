, case when starts_with(/*column*/, '?') then /*code*/ || /*column*/ else /*column*/ end
