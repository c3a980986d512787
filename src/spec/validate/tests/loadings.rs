//! Gains over displacement, and who may be told one in a run.

use super::*;

#[test]
fn loadings_of_a_law_are_checked() {
    let row = |speed_kn: f64, integral: f64| {
        json!({
            "speed_kn": speed_kn, "heave": {}, "roll": {},
            "pitch": { "integral_deg_per_deg_s": integral, "integral_limit_deg": 4 }
        })
    };
    let loading = |t: f64, rows: Value| json!({ "displacement_t": t, "schedule": rows });
    let two = [
        loading(200.0, json!([row(12.0, 0.1)])),
        loading(240.0, json!([row(10.0, 0.1), row(16.0, 0.2)])),
    ];
    let told = |list: Value, key: &str, words: &str| {
        one::<ControllerSpec>(PID, "/law/pid/loadings", list, key, words);
    };
    assert!(after::<ControllerSpec>(PID, "/law/pid/loadings", json!(two)).is_empty());
    let [light, heavy] = &two;
    let at = |key: &str| format!("law.pid.loadings{key}");
    told(
        json!([heavy, light]),
        &at("[1].displacement_t"),
        "200 t after 240 t, must be greater",
    );
    told(
        json!([light, loading(240.0, json!([]))]),
        &at("[1].schedule"),
        "at least 1",
    );
    told(
        json!([light, loading(0.0, json!([row(9.0, 0.1)]))]),
        &at("[1].displacement_t"),
        "more than 0 t",
    );
    let kilograms = loading(240e6, json!([row(9.0, 0.1)]));
    told(
        json!([light, kilograms]),
        &at("[1].displacement_t"),
        "1000000 t",
    );
    let twice = loading(240.0, json!([row(9.0, 0.1), row(9.0, 0.1)]));
    told(
        json!([light, twice]),
        &at("[1].schedule[1].speed_kn"),
        "must be greater",
    );
    let without = loading(240.0, json!([row(9.0, 0.0)]));
    told(
        json!([light, without]),
        &at("[1].schedule[0]"),
        "has integral gains where the first row has none",
    );
    let mut both: Value = serde_json::from_str(PID).unwrap();
    both["law"]["pid"]["loadings"] = json!(two);
    let both = both.to_string();
    let rows = json!([row(12.0, 0.1)]);
    one::<ControllerSpec>(
        &both,
        "/law/pid/schedule",
        rows,
        "law.pid.schedule",
        "beside `loadings`",
    );
}

#[test]
fn a_displacement_is_told_to_laws_that_can_follow() {
    let orders = serde_json::from_value::<Vec<crate::spec::orders::OrderSpec>>(json!([
        { "at_s": 9, "order": { "mode": "engaged" } },
        { "at_s": 20, "order": { "displacement_t": 240 } }
    ]));
    let orders = orders.unwrap();
    let told = |law: &str| {
        let mut problems = Vec::new();
        let law = parse::<ControllerSpec>("x.json", law).unwrap().spec;
        crate::spec::validate::orders::with_law(&mut problems, &orders, &law);
        problems.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    assert!(told(PID).is_empty());
    let lqr = told(LQR);
    for words in [
        "orders[1].order.displacement_t",
        "gains are solved for the loading",
    ] {
        assert!(lqr.len() == 1 && lqr[0].contains(words), "{lqr:?}");
    }
}
