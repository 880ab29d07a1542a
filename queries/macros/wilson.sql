-- Question:   how sure can one be of a rate, in plain SQL, with any client?
-- Grain:      scalar macros, one value a call
-- Reads:      nothing
-- Parameters: k failures, n opportunities (both may be fractions, as effective numbers are),
--             z standard normal quantile (two-sided 95 %: 1.959963984540054)
-- Columns:    the low or high end of an interval for the rate, a fraction from 0 to 1;
--             exactly 0 at k = 0 (low), exactly 1 at k = n (high);
--             NULL where n is 0 or k is not within 0 to n
-- Source:     Wilson 1927; continuity correction Newcombe 1998, method 4; Agresti and Coull 1998.
--             The same forms as fixstats/stats/proportion.py, which says why they look like this.

-- what both Wilson ends share: 2k + z² + z * sqrt(z² + 4 k (n - k) / n)
create or replace macro wilson_sum(k, n, z) as
    2 * k::double + z::double * z::double
    + z::double * sqrt(z::double * z::double + 4 * k::double * (n::double - k::double) / n::double);

create or replace macro wilson_low(k, n, z) as
    case
        when n > 0 and k = 0 then 0.0::double
        when n > 0 and k > 0 and k <= n
            then 2 * k::double * k::double / n::double / wilson_sum(k, n, z)
    end;

create or replace macro wilson_high(k, n, z) as
    case
        when n > 0 and k = n then 1.0::double
        when n > 0 and k >= 0 and k < n
            then least(wilson_sum(k, n, z) / (2 * (n::double + z::double * z::double)), 1.0)
    end;

-- with continuity correction: the ends half a failure further out
create or replace macro wilson_cc_low(k, n, z) as
    case
        when k >= 0 and k <= n then wilson_low(greatest(k::double - 0.5, 0.0), n::double, z)
    end;

create or replace macro wilson_cc_high(k, n, z) as
    case
        when k >= 0 and k <= n then wilson_high(least(k::double + 0.5, n::double), n::double, z)
    end;

-- the centre of the Agresti-Coull interval
create or replace macro agresti_coull_centre(k, n, z) as
    (k::double + z::double * z::double / 2) / (n::double + z::double * z::double);

create or replace macro agresti_coull_half_width(k, n, z) as
    z::double * sqrt(
        agresti_coull_centre(k, n, z) * (1 - agresti_coull_centre(k, n, z))
        / (n::double + z::double * z::double)
    );

create or replace macro agresti_coull_low(k, n, z) as
    case
        when n > 0 and k = 0 then 0.0::double
        when n > 0 and k > 0 and k <= n
            then greatest(agresti_coull_centre(k, n, z) - agresti_coull_half_width(k, n, z), 0.0)
    end;

create or replace macro agresti_coull_high(k, n, z) as
    case
        when n > 0 and k = n then 1.0::double
        when n > 0 and k >= 0 and k < n
            then least(agresti_coull_centre(k, n, z) + agresti_coull_half_width(k, n, z), 1.0)
    end;
