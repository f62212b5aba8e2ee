# Not part of a night: does a delivery still come out of its masters and records, byte for byte?
#
#     snakemake reproduce --config reproduce=deliveries/<batch>


rule reproduce:
    log:
        "results/reproduce.log",
    params:
        delivery=lambda wildcards: str(checks.delivery_to_compare(PLACE)),
    script:
        "../scripts/compare_delivery.py"
